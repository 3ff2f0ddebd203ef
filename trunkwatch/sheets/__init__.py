"""Sheets for the row: paper to write on, lists for the crew, the page for a phone, vines for a second look."""
