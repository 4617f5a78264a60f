"""What should be lit: test patterns as looks, and looks as levels. No socket, no clock."""
