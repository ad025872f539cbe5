"""Steps from each released shape of the tables to the next."""
