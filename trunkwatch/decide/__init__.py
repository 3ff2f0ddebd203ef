"""What to expect, what each choice costs and brings, and what to do with each vine this winter."""
