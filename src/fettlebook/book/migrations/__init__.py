"""Steps from each schema of the book to the next, the same for SQLite and PostgreSQL. Forward only: a book never goes back."""
