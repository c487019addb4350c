"""Published limits and the folds that hold readings against them. Pure."""
