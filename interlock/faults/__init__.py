"""Fault injection on paper: fault sets, what they lead to, and what would reveal them."""
