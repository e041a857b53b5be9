"""graces"""
