"""What measures would bring: scenarios of a county held against today on the same draws."""
