"""What people hold in their hands: map, lists, files."""
