<?xml version="1.0" encoding="UTF-8"?>
<StyledLayerDescriptor version="1.0.0"
    xmlns="http://www.opengis.net/sld"
    xmlns:ogc="http://www.opengis.net/ogc"
    xmlns:xlink="http://www.w3.org/1999/xlink"
    xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"
    xsi:schemaLocation="http://www.opengis.net/sld http://schemas.opengis.net/sld/1.0.0/StyledLayerDescriptor.xsd">
  <NamedLayer>
    <Name>visible_count</Name>
    <UserStyle>
      <Name>visible_count</Name>
      <Title>How many stations see the ground</Title>
      <Abstract>Number of stations that see each post; where none does nothing is drawn.</Abstract>
      <IsDefault>1</IsDefault>
      <FeatureTypeStyle>
        <Rule>
          <Name>visible_count</Name>
          <Title>How many stations see the ground</Title>
          <RasterSymbolizer>
            <ColorMap>
              <ColorMapEntry color="#FDFBF5" quantity="0" opacity="0" label="None"/>
              <ColorMapEntry color="#F3DF9B" quantity="1" opacity="0.75" label="1 station"/>
              <ColorMapEntry color="#C2703D" quantity="5" opacity="0.75" label="5 stations"/>
              <ColorMapEntry color="#432509" quantity="50" opacity="0.8" label="50 stations and more"/>
              <ColorMapEntry color="#432509" quantity="65534" opacity="0.8" label="The most that are counted"/>
            </ColorMap>
          </RasterSymbolizer>
        </Rule>
      </FeatureTypeStyle>
    </UserStyle>
  </NamedLayer>
</StyledLayerDescriptor>
