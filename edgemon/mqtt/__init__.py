"""Door to MQTT: messages in, acknowledged when told; messages out."""
