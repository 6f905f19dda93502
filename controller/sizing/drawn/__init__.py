"""A sized tent as a page with drawings, for `lungwort size --html`: pure."""
