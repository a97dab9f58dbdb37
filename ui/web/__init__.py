"""The Streamlit pages: `server` starts them, `app` lists the screens."""
