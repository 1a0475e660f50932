"""The day sheet as text, Markdown and HTML."""
