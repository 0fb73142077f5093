"""What holds a rolling machine back."""
