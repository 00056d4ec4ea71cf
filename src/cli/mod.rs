//! The terminal shell: one file a command.
