"""The rule book, one module a decision, in the order of the work."""
