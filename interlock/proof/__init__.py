"""Claims answered exactly, over all behaviours."""
