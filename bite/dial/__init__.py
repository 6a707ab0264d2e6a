"""How a rig's dial moves the teeth: exports followed, travel told, the rig's lines written."""
