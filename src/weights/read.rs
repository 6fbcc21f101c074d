//! Weights as people have them: typed, pasted, from a file or a printer.
