"""The app in the browser: pages and the HTTP interface over the tasks; nothing is computed here."""
