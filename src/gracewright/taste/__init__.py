"""taste"""
