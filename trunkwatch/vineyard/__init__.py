"""The words of the vineyard: codes, tables, seasons, coverage, records."""
