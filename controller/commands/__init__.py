"""The subcommands of `lungwort`, one file each."""
