"""What tablets send and are told: the addresses under /api, and how what they send gets into the book."""
