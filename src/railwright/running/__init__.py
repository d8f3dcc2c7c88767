"""Running: the procedure played on real outputs, recorded, and switched off whatever happens."""
