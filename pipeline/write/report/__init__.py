"""report.html and its pictures."""
