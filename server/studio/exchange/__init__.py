"""Files that leave the studio and come in: look book, tables, cue lists. Text in, values out."""
