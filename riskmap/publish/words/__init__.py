"""What people read: cautions, numbers, explanations."""
