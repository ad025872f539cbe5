"""The addresses of the desk, one module for each area; each gives its `router`."""
