"""What a run leaves on disk: journal, recordings, run file, test-result XML. Written atomically, checked when read."""
