"""Scores, ranks, reasons and doubt. Tables in, tables out."""
