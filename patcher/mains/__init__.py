"""What a show takes from the mains: sockets and circuits, against breakers and residual-current devices."""
