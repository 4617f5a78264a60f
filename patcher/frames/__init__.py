"""What should be lit: test patterns as looks, and looks as levels. All of it is pure."""
