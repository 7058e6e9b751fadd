"""The scripts as processes of a server: OGC API - Processes by pygeoapi, which is installed by choice."""
