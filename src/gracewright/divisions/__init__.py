"""divisions"""
