"""Map, page, record and 3-D export: shows results, computes nothing that decides."""
