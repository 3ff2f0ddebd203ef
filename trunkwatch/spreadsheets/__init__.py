"""Field notes in and out: CSV and XLSX as growers keep them."""
