"""The drawing kit: figures, palette, sections, pages, words, files."""
