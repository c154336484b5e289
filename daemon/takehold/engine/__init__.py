"""Observe, plan, act, record: the loop, which reaches the world through ports only."""
