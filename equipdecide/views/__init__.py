"""What a reader sees: tables, charts, pages. Views read results and ledgers; they compute no money."""
