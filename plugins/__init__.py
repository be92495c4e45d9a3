"""What happens to the books while they load."""
