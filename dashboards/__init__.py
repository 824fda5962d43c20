"""What people look at: figures, pages, display units and wording."""
