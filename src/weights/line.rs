//! One line of weights as people and printers write it.
