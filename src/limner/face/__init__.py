"""A face: named points with their spread, from repeated detection. Nothing else in limner knows mediapipe."""
