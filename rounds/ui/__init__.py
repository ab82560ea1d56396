"""The app: what is seen and typed. Rules live below, in the core."""
