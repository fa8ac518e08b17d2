"""Problems with known answers → what the program gives for them, on one page."""
