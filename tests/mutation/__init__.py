"""Small mistakes made in the pure core on purpose, to learn which of them the tests notice."""
