"""The nouns: frozen values. Nothing of ours is imported from outside this folder."""
