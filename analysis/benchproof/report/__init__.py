"""Notebook outputs into pages: figures, tables, site."""
