// Scripts only add; every page works without.
