"""Who may do what at the desk: people, phones, and what was done; kept in private files beside the vineyard file."""
