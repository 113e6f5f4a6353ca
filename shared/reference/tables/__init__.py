"""One function for each reference table; each gives its rows, header first."""
