"""Small faults planted in the program, one at a time, and the test that catches each."""
