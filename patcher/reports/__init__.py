"""What commands print: each result as text for a person, and as one JSON document for a script."""
