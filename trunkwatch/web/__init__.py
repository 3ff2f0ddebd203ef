"""The desk: a local web app over one vineyard file, for logging, looking and importing."""
