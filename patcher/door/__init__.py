"""Who may open a page that the program serves: the code in its address, the cookie for it, the limits on requests."""
