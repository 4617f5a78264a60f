"""What may hang on a port, and which chains of runs to take: by columns, prices and cuts."""
