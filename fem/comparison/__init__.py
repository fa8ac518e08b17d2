"""Results → charts, tables and the page that compares them."""
