"""What supplies give, wires carry and pixels get; and the feeds that a show still needs."""
