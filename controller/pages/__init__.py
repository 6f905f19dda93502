"""What every page and drawing of lungwort is made of: HTML, SVG and the common style."""
