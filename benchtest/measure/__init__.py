"""From a captured series to measured quantities: the code of the bench, applied to files from elsewhere."""
