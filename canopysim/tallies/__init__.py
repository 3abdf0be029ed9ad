"""What is counted, where its bin is, and the books."""
