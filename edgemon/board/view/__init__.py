"""What each screen says, as rows of plain values: pure, one file a screen."""
