"""What is printed to the terminal: tables, lists and their JSON."""
