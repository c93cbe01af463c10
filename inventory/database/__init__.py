"""The book's file or server: opening, migrating, transactions. Only this folder knows a driver."""
