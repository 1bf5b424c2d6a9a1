//! The site file: read, checked, and turned into each module's settings.
