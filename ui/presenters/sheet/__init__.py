"""The station sheet, on the page and on the phone: what it shows, and entry of what is typed."""
