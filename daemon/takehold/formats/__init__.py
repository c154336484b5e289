"""Bytes to values and back, without a file, a clock or a socket."""
