"""Surveys of a block: what is to be walked, how far it is, and what second looks say."""
