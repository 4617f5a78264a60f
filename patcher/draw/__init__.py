"""The page on which a show is drawn, on a photograph of the house or on squared paper; the file stays the truth."""
