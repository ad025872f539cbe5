"""Short invented dictations with their texts, patients and expected facts, for trying and testing the program."""
