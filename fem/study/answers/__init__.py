"""Block of a study's file, rows of its cases → sentences, charts and tables that answer it; a module a kind."""
