"""What all words, tables and pictures share: formats, names, colours, labels, and files of a picture."""
