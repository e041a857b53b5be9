"""score"""
