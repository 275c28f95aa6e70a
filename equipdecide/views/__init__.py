"""What a reader sees: tables, explanations, charts, pages. Views read ledgers and results; they compute no money."""
