"""What the engine needs of the world, as Protocols with their contracts."""
