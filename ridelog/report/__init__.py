"""Results -> words, pictures and the page for the owner."""
