"""The world: each file touches one outside thing."""
