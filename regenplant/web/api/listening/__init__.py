"""Listening to meters over MQTT: each message is safe in the spool before the broker is told that it arrived."""
