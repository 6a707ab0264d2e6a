"""Depth matched from two calibrated views, each disparity with its own sd."""
