"""A module for each sheet: the clean log's records of it, and the mistakes that are planted there."""
