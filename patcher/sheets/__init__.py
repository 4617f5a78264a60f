"""What is printed: the words and tables of every sheet, as pages and as files for machines."""
