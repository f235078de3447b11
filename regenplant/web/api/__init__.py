"""The way in for programs: readings of in-line meters over HTTP and MQTT, and how a rinse stands."""
