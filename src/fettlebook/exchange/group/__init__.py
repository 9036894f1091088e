"""Many practices seen together: each one's standing in short, which needs help first, and what a group lets its practices share."""
