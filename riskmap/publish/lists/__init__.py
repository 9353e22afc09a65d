"""Priority lists as workbooks and CSV files."""
